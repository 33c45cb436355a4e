"""What an answer is: one protocol for summary, tables, dataset, notes, sources, picture and file."""
