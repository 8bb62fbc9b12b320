"""Where questions are weighed: in this process or in workers, once, and kept."""
