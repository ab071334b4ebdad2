"""Pages and doors: phone, board, incoming webhooks."""
