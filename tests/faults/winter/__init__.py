"""Three days of a simulated winter fleet through the real API, with everything a bad link does; time passes, unslept.

Two carriers own the same units. One gets the events as the radio brings them: late, twice, out of order, from wrong
clocks. The other gets the same events once and in order. In the end both must know the same.
"""
