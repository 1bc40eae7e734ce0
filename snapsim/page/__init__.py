"""The web page: move the part, see the force, release, scrub; and one run as one HTML file."""
