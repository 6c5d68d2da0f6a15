"""What the service counts about its own work; served by /metrics beside the HTTP figures."""

import numpy as np
import numpy.typing as npt
from prometheus_client import Counter, Gauge, Histogram


class BatchHistogram(Histogram):
    """A histogram that takes many amounts at once: its buckets are counted up once per batch, not once per event."""

    def observe_all(self, amounts: npt.NDArray[np.float64]) -> None:
        """Observes all amounts; what is negative counts as 0."""
        places = np.searchsorted(self._upper_bounds, amounts)
        for place, times in enumerate(np.bincount(places).tolist()):
            if times:
                self._buckets[place].inc(times)
        self._sum.inc(float(amounts[amounts > 0].sum()))


EVENTS = Counter("warmgate_events", "Events received, by what became of them.", ["outcome"])
EVENT_LAG = BatchHistogram(
    "warmgate_event_lag_seconds",
    "Age of events when they arrive.",
    buckets=(1, 5, 15, 60, 300, 900, 3600, 14400, 86400),
)
BELL = Counter("warmgate_bell", "Attempts to wake a worker.", ["outcome"])
ASSESSMENTS = Counter("warmgate_assessments", "Assessments made, by verdict.", ["verdict"])
ASSESSED_BY = Counter("warmgate_assessed_by", "Trips assessed by the worker, by what woke it.", ["woken_by"])
SWEPT = Counter("warmgate_swept", "Work found by the sweep that no bell had announced.", ["stage"])
DUE_OLDEST = Gauge("warmgate_due_oldest_seconds", "Age of the oldest due work.", ["stage"])
CHECK_FAILURES = Counter("warmgate_check_failures", "Checks that failed and were answered as unknown.", ["check"])
LISTENER_FAILURES = Counter("warmgate_listener_failures", "Hold listeners that failed.", ["listener"])
RATE = Counter(
    "warmgate_rate", "Requests refused by a quota, or let pass because no quota could be asked.", ["quota", "outcome"]
)
