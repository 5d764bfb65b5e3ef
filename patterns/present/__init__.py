"""What is shown to an audience: split clips, stills, animations, the talk."""
