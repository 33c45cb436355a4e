"""When to stop: traces of light, friction or eddy currents read as they come in."""
