"""What writes alarm records: reports folded into them, acts of people, the quiet after a return, facts published.

Callers hold the unit's state lock (`fleet.units.state.lock_states`) before anything here reads an alarm's row; that
lock is what makes reports, acts and assessments of one unit take turns.
"""
