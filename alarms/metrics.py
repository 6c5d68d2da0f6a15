"""What the app counts about messages and the auditor; served by /metrics."""

from prometheus_client import Counter, Gauge

DELIVERIES = Counter("warmgate_deliveries", "Attempts to deliver, by what became of them.", ["channel", "outcome"])
NOTICES_UNDELIVERABLE = Gauge("warmgate_notices_undeliverable", "Open notices that no channel takes.")
MAIL_CHARTS = Counter("warmgate_mail_charts", "Charts for mails, by what became of them.", ["outcome"])
AUDITOR_LAST_SUCCESS = Gauge("auditor_last_success_timestamp_seconds", "When the auditor last looked at everything.")
AUDITOR_REPAIRS = Counter("warmgate_auditor_repairs", "What the auditor had to mend.", ["what"])
