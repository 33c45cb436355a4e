"""How long does a control chart run before it alarms? Solved, not simulated: one chart a file."""
