"""The screens of the app: widgets only, every number comes from `grainplan.steps`."""
