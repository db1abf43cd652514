"""The test on one page of TOML: schema, reading, messages, template."""
