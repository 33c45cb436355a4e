"""The browser bench and the REST API: thin, no physics."""
