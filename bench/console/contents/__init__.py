"""The contents of the widgets, made from the view model: sentences and drawings."""
