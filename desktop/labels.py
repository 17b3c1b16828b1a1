"""Plain names for the settings of farm and block, wherever one is shown or refused."""

from __future__ import annotations

from desktop.wording import tr, word
from waterbudget.orchard import ALL_STAGES, STAGE_NUMBERS


def farm_labels() -> dict[str, str]:
    """Return the plain name of every setting of the farm (stage numbers apart)."""
    return {
        "name": tr("Name of the farm"),
        "elevation_m": tr("Height above the sea"),
        "time_zone": tr("Time zone"),
        "pump_m3_h": tr("Pump delivers"),
        "pump_hours": tr("Pump runs at most"),
        "pump_head_m": tr("Pump lifts and presses"),
        "pump_efficiency": tr("Pump and motor give back"),
        "work_from": tr("Work begins"),
        "work_to": tr("Work ends"),
        "days_off": tr("Days off"),
        "night_sets": tr("Water at night too"),
        "forecast_rain_credit": tr("Share of forecast rain to count on"),
        "et0": tr("What the air takes (ET0)"),
        "default_station": tr("Station, where a block names none"),
        "default_wind_m_s": tr("Wind, where none was measured"),
        "krs": tr("Sun from low and high, factor"),
        "neighbour_rain": tr("Take a neighbour station’s rain"),
        "kc_climate": tr("Move tree factors by wind and dry air"),
        "phone_for_trouble": tr("Pump trouble, call"),
        "pump_out_from": tr("First pump stands still from"),
        "pump_out_to": tr("First pump stands still to"),
        "right_m3_week": tr("Water right, a week"),
        "right_m3_year": tr("Water right, a year"),
        "right_from_month": tr("Year of the right begins in month"),
        "tank_m3": tr("Tank or reservoir holds"),
        "tank_fill_m3_h": tr("Tank fills at"),
        "tank_now_m3": tr("Water in the tank now"),
        "price_kwh": tr("Price of a kWh"),
        "price_kwh_night": tr("Price of a kWh in cheap hours"),
        "night_from": tr("Cheap hours begin"),
        "night_to": tr("Cheap hours end"),
        "wage_hour": tr("Wage of an hour"),
        "currency": tr("Currency"),
        "people": tr("People at the valves"),
        "people_hours": tr("Hours a day for each person"),
        "minutes_a_valve": tr("Minutes for one valve"),
        "stage_order": tr("Who keeps water when short"),
        "feed_days": tr("Feeding days after pruning"),
        "spray_days": tr("Spraying days after pruning"),
        "dry_before_h": tr("Leaves dry before spraying"),
        "dry_after_h": tr("Leaves dry after spraying"),
        "feed_rain_mm": tr("No feed before rain of"),
        "sun_on_slope": tr("Count the sun on the slope"),
    }


def block_labels() -> dict[str, str]:
    """Return the plain name of every setting of a block (stage numbers apart)."""
    return _tree_and_soil_labels() | _water_and_work_labels()


def _tree_and_soil_labels() -> dict[str, str]:
    return {
        "area_ha": tr("Hectares"),
        "pruned_on": tr("Pruned on"),
        "pruned_earlier": tr("Pruned before that"),
        "seen_bloom": tr("Bloom seen"),
        "seen_set": tr("Fruit set seen"),
        "seen_fill": tr("Fruit fill seen"),
        "seen_harvest": tr("Harvest began"),
        "harvest_end": tr("Harvest ended"),
        "planted_on": tr("Planted on"),
        "pattern": tr("Planting pattern"),
        "spacing_m": tr("Tree spacing"),
        "row_spacing_m": tr("Row spacing"),
        "trees": tr("Trees"),
        "system": tr("Watered by"),
        "outlet_l_h": tr("One outlet gives"),
        "outlets_per_tree": tr("Outlets per tree"),
        "flow_m3_h": tr("Flow of the valve"),
        "flow_from": tr("Flow known from"),
        "wetted_fraction": tr("Share of ground wetted"),
        "root_share": tr("Share of soil with roots"),
        "efficiency": tr("Share that reaches the roots"),
        "catch_ml": tr("Catches in the field"),
        "loss_percolates": tr("Share of the loss that seeps down"),
        "soil": tr("Soil by feel"),
        "field_capacity": tr("Field capacity"),
        "wilting_point": tr("Wilting point"),
        "stones": tr("Stones, share of volume"),
        "root_depth_m": tr("Root depth"),
        "tew_mm": tr("Water the top soil can lose"),
        "rew_mm": tr("Water the top soil loses easily"),
        "p_stress": tr("Share of water before trees slow down"),
        "rain_reach": tr("Share of rain that reaches the roots"),
        "interception_mm": tr("Rain kept by the leaves"),
        "sand_pct": tr("Sand in the soil"),
        "clay_pct": tr("Clay in the soil"),
        "organic_pct": tr("Organic matter"),
        "rock_depth_m": tr("Depth to rock"),
    }


def _water_and_work_labels() -> dict[str, str]:
    return {
        "water_ec_ds_m": tr("Salt of the water (EC)"),
        "soil_ec_ds_m": tr("Salt of the soil (ECe)"),
        "salt_threshold_ds_m": tr("Salt the trees stand (ECe)"),
        "salt_loss_pct": tr("Crop lost for each dS/m above that"),
        "salt_ky": tr("How the crop answers to water (Ky)"),
        "leaching": tr("Leaching"),
        "curve_number": tr("Runoff curve number"),
        "slope_pct": tr("Slope"),
        "elevation_m": tr("Height above the sea"),
        "station": tr("Weather station"),
        "gauge": tr("Rain gauge"),
        "canopy_cover": tr("Shadow width at noon (canopy cover)"),
        "height_m": tr("Tree height"),
        "kc_fixed": tr("Kc, fixed"),
        "kc_factor": tr("Kc, times"),
        "kc_factor_from": tr("Kc, times: from that day on"),
        "kc_factor_before": tr("Kc, times: before that day"),
        "kc_factor_why": tr("Kc, times: why"),
        "full_on": tr("Known full on"),
        "target_dr_mm": tr("Missing water to end the week with"),
        "dry_until": tr("Keep dry until"),
        "set_hours_min": tr("Shortest watering"),
        "set_hours_max": tr("Longest watering"),
        "valve": tr("Valve"),
        "valve_person": tr("Valve person"),
        "note": tr("Note"),
        "pump": tr("Fed by pump"),
        "pressure_group": tr("Runs together with group"),
        "pressure_kpa": tr("Pressure to see at the valve"),
        "valve_order": tr("Place in the walk"),
        "meter": tr("Water meter"),
        "intake_mm_h": tr("Soil takes in"),
        "outlet_radius_m": tr("Outlet wets a circle of"),
        "ground_cover": tr("Ground under the trees"),
        "feed_days": tr("Feeding days after pruning"),
        "spray_days": tr("Spraying days after pruning"),
        "outlet_exponent": tr("Outlet answers to pressure, exponent"),
        "outlet_kpa": tr("Outlet made for"),
        "lateral_mm": tr("Row pipe, inside"),
        "main_mm": tr("Pipe to the valve, inside"),
        "main_m": tr("Pipe to the valve, length"),
        "valve_lat": tr("Valve, latitude"),
        "valve_lon": tr("Valve, longitude"),
        "valve_elevation_m": tr("Valve, height above the sea"),
        "aspect_deg": tr("Slope looks to"),
        "row_bearing_deg": tr("Rows run to"),
        "row_fall_pct": tr("Fall of contour rows"),
        "setback_m": tr("No tree nearer the edge than"),
        "headland_m": tr("Turning strip at the row ends"),
        "grid_lat": tr("First tree, latitude"),
        "grid_lon": tr("First tree, longitude"),
    }


def number_labels() -> dict[str, str]:
    """Return the plain name of every number of the stage table."""
    return {
        "kcb": tr("Tree factor (Kcb)"),
        "allowed": tr("Easy share (RAW)"),
        "canopy": tr("Shadow at noon"),
        "root_depth": tr("Root depth, m"),
        "weight": tr("Weight"),
        "floor": tr("Least share when short"),
    }


def label(key: str, of: str = "block") -> str:
    """Return the plain name of a setting; ``kcb_fill`` gives "Tree factor (Kcb), fruit fill"."""
    first, second = (
        (block_labels(), farm_labels()) if of == "block" else (farm_labels(), block_labels())
    )
    found = first.get(key) or second.get(key)
    if found:
        return found
    for number in STAGE_NUMBERS:
        stage = key.removeprefix(f"{number}_")
        if stage != key and stage in ALL_STAGES:
            return f"{number_labels()[number]}, {word(f'stage.{stage}')}"
    return key
