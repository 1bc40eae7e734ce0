"""The one place where magnetics and mechanics meet: a system, its loads at and between poses."""
