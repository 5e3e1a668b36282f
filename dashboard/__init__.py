"""The page. It imports `roadtest`; `roadtest` never imports it."""
