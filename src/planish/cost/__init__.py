"""What a wafer costs: lives of what is used up, time of the machine, and the prices that the setup gives."""
