-- name: RainReadingInsert :one
INSERT INTO rain_reading (plot_id, day, rain_mm, note, reporter, garden_id, id, revision)
VALUES (@plot_id, @day, @rain_mm, @note, @reporter, @garden_id, @id, @revision)
RETURNING *;

-- name: RainReadingDelete :execrows
DELETE FROM rain_reading WHERE garden_id = @garden_id AND id = @id AND revision = @revision;

-- name: RainReadingByID :one
SELECT * FROM rain_reading WHERE garden_id = @garden_id AND id = @id;

-- RainReadingList is what was read on the days from @first_day to @last_day, in the order in which it was entered.
-- name: RainReadingList :many
SELECT * FROM rain_reading
WHERE garden_id = @garden_id AND day BETWEEN @first_day AND @last_day
ORDER BY day, created_at, id;
