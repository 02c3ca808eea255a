"""Pure numerics: arrays in, arrays out."""
