"""Is a step fit to run? A checklist with limits as a signed record, and whether a changed part does as the old one did."""
