"""Flashes and stripes in a picture sequence that can hurt a photosensitive viewer.

The check is an aid, not a certificate: whoever shows pictures to the public defers to
the broadcaster's or venue's own rules and to a licensed test.
"""
