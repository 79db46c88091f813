"""What the widgets show of the view model: sentences and drawings."""
