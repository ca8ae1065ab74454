"""The app, as Streamlit runs it: ``grainplan app``, or ``streamlit run app.py -- JOB``."""

if __name__ == "__main__":  # the processes that look into boards read this file again
    from grainplan.screens.shell import show_app

    show_app()
