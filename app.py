from grainplan.screens.shell import show_app

show_app()
