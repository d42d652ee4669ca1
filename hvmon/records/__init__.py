"""What was measured, checked at the door, frozen after."""
