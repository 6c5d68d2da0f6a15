"""No rows of its own; the module makes Django send the app its post_migrate signal."""
