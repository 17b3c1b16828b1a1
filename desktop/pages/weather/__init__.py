"""The weather of every station: years, days, what is to be checked, forecasts."""

from desktop.pages.weather.page import WeatherPage

__all__ = ["WeatherPage"]
