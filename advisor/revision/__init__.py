"""Two plans of a part beside each other: how B lies, what of the surface changed, and what that does to zones."""
