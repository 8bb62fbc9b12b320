"""The study bot for Discord: the same answers, as messages, by signed HTTP interactions or the gateway client."""
