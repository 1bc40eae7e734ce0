"""Sentences made from facts, each kind in one module; nothing ever reads them back."""
