"""What each verb prints with `--json`."""
