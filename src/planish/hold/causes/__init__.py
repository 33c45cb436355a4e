"""What changed when a chart alarms: six kinds of causes ranked by how likely the model finds what was measured."""
