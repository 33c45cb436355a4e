"""Control charts of measured rows: what is drawn, its limits, its rules, and what changed where it alarms."""
