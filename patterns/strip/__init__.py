"""The counting strip: its layout and codes, drawing it into frames, reading it in pictures."""
