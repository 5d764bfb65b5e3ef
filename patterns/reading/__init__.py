"""What a screen, a file or an edit really did: readings, and their comparison."""
