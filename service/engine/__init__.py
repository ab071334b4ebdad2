"""What happens: plan, prompt, hear, read, decide, send, record."""
