"""The gate resistor swept: edges, gates, and the band that is left."""
