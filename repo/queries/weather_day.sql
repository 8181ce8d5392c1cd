-- WeatherDayList is the weather of a planning horizon, all stations, days from @first_day to @last_day.
-- name: WeatherDayList :many
SELECT * FROM weather_day
WHERE garden_id = @garden_id AND day BETWEEN @first_day AND @last_day
ORDER BY day, station, kind;
