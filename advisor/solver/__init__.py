"""The guess: equilibria, reads, execution and the value of a round. Pure mathematics over labelled payoffs."""
