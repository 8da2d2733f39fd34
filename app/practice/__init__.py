"""Learning by doing: simulated patients, their keys, and agreement that is measured."""
