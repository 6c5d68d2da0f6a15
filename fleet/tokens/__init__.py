"""Tokens over HTTP: a log-in gives one, a rotation replaces one, a list shows them, a revocation ends one at once."""
