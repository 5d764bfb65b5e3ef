"""What a picture is: planes of bytes, linear light, lettering, stills."""
