"""The three ways on from a moment: flight, blow, press; each gives the next moment."""
