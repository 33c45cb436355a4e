"""The verbs as they are declared: names, options and their words, a file a room. What they do is imported as they run."""
