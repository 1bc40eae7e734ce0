"""Tracked footage laid over a computed motion: does it match, and what were the unknowns?"""
