"""The demonstration on a virtual saw, with and without the screen."""
