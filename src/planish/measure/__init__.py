"""What the fab's tools wrote: site maps, traces, layouts, statistics."""
