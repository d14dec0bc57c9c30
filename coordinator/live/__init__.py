"""Run the core in real time: translation, coordinator, operator, link, broker, runtime."""
