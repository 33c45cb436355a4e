"""Keep a step centred, day after day: control charts, their run lengths, capability and gauge studies, run-to-run control."""
