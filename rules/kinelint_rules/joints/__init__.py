"""What joints may not do."""
