"""The record's model, a module for each YAML file."""
