"""The bench: dialogue, wedge, decoder, outbox, link, screen, commands, page."""
