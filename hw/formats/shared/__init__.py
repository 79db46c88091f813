"""What several wire formats share."""
