"""Learning from stored readings: chores that read what is new, rows they keep, facts and findings they tell."""
