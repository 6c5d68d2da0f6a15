"""The only Django code of thermal: rows become arrays, findings come back."""
