"""Rules in TOML for people who do not program: a measured feature, a condition, a message. Safe for anyone's rules:
nothing but arithmetic on measurements can be said in them."""
