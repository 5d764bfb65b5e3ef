"""What is drawn for people: one palette and type scale, canvases, charts, the frame of pages."""
