"""The command line: thin, no physics."""
