"""The command line, the only place that joins the coordinator and the simulated arms."""
