"""The embedded demonstration study; everything in it is invented."""
