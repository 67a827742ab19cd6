-- 0023 orders_that_wait (sqlite)
--
-- Which order of the same plant an order waits for, and how many minutes after the end of that one's work its own may begin at
-- the earliest: cooling, curing, a conveyor that must run first. Orders there are wait for none: both stay empty.

-- +goose Up

ALTER TABLE orders ADD COLUMN after_id BIGINT;
ALTER TABLE orders ADD COLUMN after_min BIGINT;
