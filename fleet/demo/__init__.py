"""An invented carrier's winter evening, played through the service's own HTTP API. The scenario is fixtures/demo."""
