-- 0019 life_history (sqlite)
--
-- Since when a plant's failures are on record, as the plant states it, and why it says so: what was made before that day and is
-- known only because it survived counts in the life figures from then on. Old rows get nothing: the program goes on reading
-- it off the first ending on record.

-- +goose Up

ALTER TABLE plants ADD COLUMN history TEXT;
