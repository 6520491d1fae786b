"""What a site declares about itself: schema, defaults and templates."""
