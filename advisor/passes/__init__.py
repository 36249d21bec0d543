"""Passes laid on the part: contact and ball-centre lines, links, and the virtual cut that proves them."""
