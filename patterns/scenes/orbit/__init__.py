"""A circle about a subject, with hills all round."""
