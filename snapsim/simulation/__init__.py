"""The one place where magnetics and mechanics meet: a system, its force, its release."""
