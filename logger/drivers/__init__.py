"""The only code that touches hardware. A driver is chosen by its kind in rig.toml and loaded when named."""
