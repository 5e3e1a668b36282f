"""The drive card: what to drive so that a build sheet's targets are proven."""
