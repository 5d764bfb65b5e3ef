"""From a description to files: one clip with its record, or a kit of them."""
