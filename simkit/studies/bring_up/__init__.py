"""The bring-up sheet: what every instrument shows at each stage, and when to stop."""
