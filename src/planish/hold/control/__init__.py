"""Run-to-run control: time and head pressures from wafer to wafer, by what late metrology says of those before."""
