"""How messages leave and arrive: webhooks and mail."""
