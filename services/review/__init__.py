"""The failure review: lives of a part type become findings that say how it fails, in which batch, and what to do about it."""
