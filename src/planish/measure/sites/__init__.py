"""Site maps of wafers: read, paired, described."""
