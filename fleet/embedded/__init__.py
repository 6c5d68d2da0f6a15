"""The whole service in one process: web, worker, delivery, sweep. Production runs the same parts as processes."""
