-- 0012 reading_by_plant (postgres)
--
-- Indexes only, no row changes. The last finding of a splice is read off an index, newest first, where the register of all
-- splices had to sort those found at one instant and look whether each still holds. What a plant's rules, its Today and its
-- meters ask for is found by its plant, so that it costs the same however many plants there are beside it and however
-- much was found there before.

-- +goose Up

CREATE INDEX findings_last ON findings (splice_id, found_at, id) WHERE known_to IS NULL AND valid_to IS NULL AND splice_id <> 0;
-- findings of a grade that have neither an order nor a signed refusal
CREATE INDEX findings_open ON findings (plant_id, grade) WHERE known_to IS NULL AND valid_to IS NULL AND follow_up_order_id = 0 AND refused_by = 0 AND grade IS NOT NULL;
CREATE INDEX findings_followed ON findings (follow_up_order_id) WHERE known_to IS NULL AND valid_to IS NULL AND follow_up_order_id <> 0;
CREATE INDEX findings_measured ON findings (plant_id, quantity) WHERE known_to IS NULL AND valid_to IS NULL AND quantity <> '';
-- in the order in which waiting readings are shown
DROP INDEX held_readings_waiting;
CREATE INDEX held_readings_waiting ON held_readings (plant_id, at, id) WHERE decision = '';
CREATE INDEX held_readings_plant ON held_readings (plant_id, at);
-- occurrences that wait for a person instead of having an order
CREATE INDEX occurrences_reminders ON occurrences (plant_id, due_at) WHERE order_id = 0;
