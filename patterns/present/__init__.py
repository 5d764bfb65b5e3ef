"""What is shown to people: pictures, pages, split clips and talks, drawn by one hand."""
