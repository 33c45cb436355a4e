"""Settings of several platens in a row solved for together: the films that one leaves come to the next."""
