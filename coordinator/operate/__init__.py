"""Run a live cell: processes, link, journal, terminal and page around one coordinator."""
