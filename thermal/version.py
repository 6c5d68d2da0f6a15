"""The version of the physics. It changes when equal inputs may give other numbers, and is stored with every
answer."""

VERSION = "box-1"
