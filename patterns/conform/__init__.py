"""Footage already shot, made to play at another rate without encoding it anew."""
