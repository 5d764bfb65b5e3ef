"""The pages for phones and tablets, and the small server that hands them out."""
