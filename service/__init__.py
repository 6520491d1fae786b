"""Everything that touches the world: intake, store, assess, alerts, mail, web and the command line."""
